"""Files of other people and files for them: one writer for what leaves the program, one reader for what comes in."""
