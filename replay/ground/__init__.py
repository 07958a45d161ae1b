"""What every other room stands on: refusals, whole files, shapes of TOML and JSON, units, statistics, locks."""
