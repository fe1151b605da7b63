"""Deliberate faults in what safety, records and verdicts rest on: does a test notice each?"""
