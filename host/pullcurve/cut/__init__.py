"""The cut watch: clogs, filter, leaks and what a shift came to, from a stream as it comes."""
