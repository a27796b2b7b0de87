"""Pictures: the map of the neck and what single notes look like.

Conventions
-----------
Pictures are made from values that are ready to show: nothing is measured or judged here.
matplotlib is used through `matplotlib.figure.Figure`, never through pyplot, and no picture
holds a date, so the same input gives the same bytes.

Limits
------
`neckmap` loads matplotlib when it draws; `tones` and `traces` never do.
"""
