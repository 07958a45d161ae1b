"""Wrong ports: what a fresh port gets wrong, the walks that find it, and what is shown to be no mistake."""
