"""The bench on a screen: pages, live stream, HTTP API, sign-in; and the broker beside them."""
