"""From records to a measurement: channels, zeros, shaft speed, settled points, air state, flow."""
