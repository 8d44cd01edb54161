"""TOML to frozen dataclasses: an unknown key is an error that names the nearest known one."""
