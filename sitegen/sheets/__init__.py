"""Field sheets: what is printed and filled in at the test cell, and the same as empty tables that `check` reads."""
