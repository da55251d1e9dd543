"""Steps that belong to no single stream."""
