"""Where to look for the lander, how to search, and what to hand to whom: `tumblehome find`."""
