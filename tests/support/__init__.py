"""What the tests share: models, stories, toolchains, commands run in this process."""
