"""What leaves the tool of a lesson: paper, slides, pictures and clips."""
