"""From records to committed results."""
