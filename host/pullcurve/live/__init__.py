"""The live page: a run on a phone while it is made. Words and numbers are made here; the page
in the browser only shows them."""
