"""What the records say together: pairs, suspects, the next jar, agreement, and questions before mixing."""
