"""A string's own conductors against every loop that runs through them, not the strings' alone.

Links of 12 mm² of copper stand 115² · 12²·... between 90 and 160 °C: figures beside each case.
"""
