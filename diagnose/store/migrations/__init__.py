"""How a casebook's database comes from one version to the next; run when it is opened."""
