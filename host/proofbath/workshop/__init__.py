"""The workshop: a batch's way from intake over its nights to decisions and certificates."""
