"""An invented infant with known truth. Shares nothing with the filters and stages."""
