"""Stories are scripts: their tests run them, collecting them would."""

collect_ignore_glob = ["castsugar/examples/stories/*"]
