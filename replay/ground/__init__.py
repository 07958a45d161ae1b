"""What every other room stands on: refusals, whole files, TOML and JSON, units, exact statistics, locks."""
