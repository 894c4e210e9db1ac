"""What the outlines of parts are made of: shapes in metres, places, and the primitives that several kinds share.

A part says what it looks like in its own `outline(place)`; a kind that shows nothing says why in
`WITHOUT = {"outline": "..."}`. Nothing here knows a page, a pixel or another part.
"""
