"""Components that pages share."""
