"""From bytes to records: decoder, sequence numbers, header, board clock. No ports, no files."""
