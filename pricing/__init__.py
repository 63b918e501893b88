"""Classic-car market price analytics: sale records in, defensible price ranges out."""
