"""Text of a user's own that must come through everything as the letters it is."""

MARKUP = "<script>alert('x')</script><b onclick=\"y()\">bold</b>"
TYPST = '*strong* _it_ #set text(red) $x^2$ @ref <label> `raw` \\ #image("x.png") //no'
SIGNS = "100 % & {braces} {{ twice }} {% if %} %{text} \"q\" 'q'"
SCRIPTS = "שלום madder عربى 😀🧵 Ελληνικά 茜染"
LONG = "madder" * 84
ALL = (MARKUP, TYPST, SIGNS, SCRIPTS, LONG[:500])
