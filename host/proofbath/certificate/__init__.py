"""Certificates: content, signature, pages, labels, and what tells a genuine one from a changed."""
