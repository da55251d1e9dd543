"""A second generator of whole programs: it shares nothing with the package, nor with the simulator of the examples."""
