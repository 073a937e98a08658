"""Forms of selling: each turns what was typed into the lines and figures a service takes."""
