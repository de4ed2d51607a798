/* SPDX-License-Identifier: MIT */
#include "report/html.h"

/* Made by the Makefile from report.css and report.js. */
#include "report_assets.h"

const char *tp_html_style(void)
{
    return report_css;
}

const char *tp_html_script(void)
{
    return report_js;
}
