"""The standard functional test: what is judged, against which limits, by which rule."""
