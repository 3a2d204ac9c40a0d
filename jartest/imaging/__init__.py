"""Photo to reading: the only floor that knows OpenCV and scikit-image.

Start at `reading.read_photo`, where the steps meet: `photo` (bytes to pixels), `jar` and `follow` (where
the jar stands), `profile` (the near wall unrolled), `rows` and `layers` (what lies in it), `flocs` and
`texture` (how it looks), `overlay` (the reading drawn on the photo), `quality` (what may be wrong).
"""
