"""What is told inside the programme: to a site on its own files, to those who run it on its runs. Never published."""
