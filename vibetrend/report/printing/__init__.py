"""The page on paper and its pictures as files, through a browser that is installed."""
