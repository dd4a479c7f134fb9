"""What was on the machine: meter, site, pickups, machine and sensors, from a TOML file."""
