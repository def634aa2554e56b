"""What happened down there, and why: `tumblehome debrief`."""
