"""`python -m sitegen`."""

from sitegen.cli import main

raise SystemExit(main())
