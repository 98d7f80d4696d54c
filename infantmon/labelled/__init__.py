"""Annotated recordings: whom they show, who marked them, where they lie."""
