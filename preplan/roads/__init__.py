"""Open road data turned into minutes and miles for tankers."""
