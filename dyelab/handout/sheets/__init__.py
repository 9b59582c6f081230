"""The pages to hand out, one file a kind."""
