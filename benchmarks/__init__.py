"""What Trayside costs, as ratios against something measured in the same run: `python -m benchmarks`."""
