"""`python -m pullcurve.cli` is `pullcurve`."""

from pullcurve.cli import main

main()
