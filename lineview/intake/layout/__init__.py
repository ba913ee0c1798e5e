"""What each column of an export is: proposed, fitted, bound."""
