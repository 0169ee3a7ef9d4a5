"""What wood and boards weigh, how much water they hold, and how they move: numbers from service/rules/wood.toml."""
