"""Gates that guard the guards: `python -m tests.gates NAME`, and each with a seeded defect that must turn it red."""
