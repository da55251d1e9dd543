"""Programs folders that were whole and then broken in a place or two: nothing may break what reads them."""
