"""The house itself: documents, packaging, floors, which tests are slow, what a notebook shows."""
