"""From records to flow against speed: tables in, tables out."""
