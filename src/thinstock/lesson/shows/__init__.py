"""What a scene shows: one function a kind of show, each from machines that were run to a drawing of given size."""
