"""One recording or check-up from file to verdict: the one place that joins the rooms."""
