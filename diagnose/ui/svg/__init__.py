"""Pictures as SVG, drawn element by element: text of users is never pasted into markup."""
