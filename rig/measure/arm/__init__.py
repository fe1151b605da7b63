"""What pry and twist have in common: record, motion, zero and sweep of the arm, budget rows."""
