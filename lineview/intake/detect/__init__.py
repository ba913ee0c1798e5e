"""How an export is written: encoding, sheets, delimiter, header."""
