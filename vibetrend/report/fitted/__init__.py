"""How a damper sits: the installation record as the page, the terminal and files show it."""
