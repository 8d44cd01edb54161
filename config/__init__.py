"""Ready-made descriptions: scales, holds, lines and jobs as TOML, each value with its source."""
