"""The service record of an attendance: the paper that the customer gets.

`content` says what it holds, `issuing` keeps what was handed out, `checking` answers whoever holds a copy,
`sheet` puts it into words and units, `typesetting` onto paper.
"""
