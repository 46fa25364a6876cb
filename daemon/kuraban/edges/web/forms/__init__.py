"""From what is typed or tapped to an entry, and why something was not taken."""
