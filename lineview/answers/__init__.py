"""One object a question: figures with unit, interval, period and working."""
