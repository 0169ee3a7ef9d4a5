"""Image side of Grainassay: photo -> panels -> measurements -> findings -> verdict. Knows nothing of web or training."""
