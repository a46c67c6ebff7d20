"""One page in one file that draws a comparison for a browser, with no network and no server behind it."""
