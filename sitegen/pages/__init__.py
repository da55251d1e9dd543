"""From results to pages: order, layout and words. No arithmetic beyond formatting."""
