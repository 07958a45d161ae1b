"""Tables for the terminal. Only text: what they show was worked out elsewhere."""
