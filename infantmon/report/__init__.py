"""What people look at: the review page."""
