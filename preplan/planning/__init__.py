"""Roads and water together: who comes, which fill site, which level."""
