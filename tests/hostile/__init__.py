"""Hostile files, links, ports, texts, writes and memory."""
