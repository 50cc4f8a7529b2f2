"""From a request to ideas: plan, solve, join, draw, score, thin out."""
