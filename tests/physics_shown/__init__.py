"""What is shown of the physics beside its tests; `__main__` says which commands there are."""
