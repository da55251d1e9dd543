"""Static report sites for multi-engine piston-ring coating test programs."""
