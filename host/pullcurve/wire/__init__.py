"""From bytes to records: framing, checks, headers and the board's clock. No I/O."""
