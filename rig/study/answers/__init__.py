"""From a study's record and its trials to plans and answers, in numbers and in words."""
