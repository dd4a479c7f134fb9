"""Ways to a board and to its bytes: serial port, Bluetooth, bench, replayed log."""
