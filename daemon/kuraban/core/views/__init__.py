"""What is shown to people, in structures that never change."""
