"""What can be promised before anything is built: load and worst-case response times."""
