"""The template workbooks: what they are made of, their pages, and the shop file that fills part of them."""

