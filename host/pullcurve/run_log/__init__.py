"""The run log: what came over the link, line for line, and what the host has to add.

A log is text, readable in any editor. A line is

    TIME ORIGIN PAYLOAD

TIME is when the host received or wrote it: ISO 8601 with its zone. ORIGIN is `board` or
`host`. The payload of `board` is a line as it came, with a backslash and two hex digits for
each byte outside printable ASCII and for the backslash itself; a backslash at the very end
says that no newline came. The payload of `host` is a record of `host_records`.
"""
