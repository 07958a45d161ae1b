"""The bench page: its parts for the browser, and what puts them together with a library and the C port."""
