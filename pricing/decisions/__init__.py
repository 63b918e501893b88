"""What the person needs: valuing, buying, selling, appraising."""
