"""Made-up truth for repeats and leaf layouts: real wood figure, known geometry, then what a camera does to it."""
