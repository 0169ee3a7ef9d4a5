"""The second opinion in a browser: pages and an API over the store, on this machine."""
