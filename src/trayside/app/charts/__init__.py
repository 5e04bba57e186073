"""Charts as descriptions: one for the screen and for paper. Nothing is drawn here."""
