"""How the tables came to be, step by step; run at every start by service.store.upgrade."""
