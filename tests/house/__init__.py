"""The house itself: documents, packaging, floors."""
