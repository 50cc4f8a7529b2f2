"""The idea book: every idea that was shown, kept in one file, so that it can be found again and is not shown twice."""
