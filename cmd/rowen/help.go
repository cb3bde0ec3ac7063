package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
)

// schedulingTopic is rowen help scheduling: how to run the job every month on
// the three kinds of machine. It is no command and does nothing.
func schedulingTopic() *cobra.Command {
	return &cobra.Command{
		Use:   "scheduling",
		Short: "examples for cron, a systemd timer and the Windows Task Scheduler",
		Long: `Run the job on the second of each month, once the last month's readings are in.
rowen writes results to files and logs to stderr; --log-format json suits a log
collector. Alert on the exit code: 0 done, 1 could not, 2 wrong usage or settings,
3 done but not with everything. Run it as a user of its own: the call list and the
briefs hold personal data.

cron (Linux, macOS; crontab -e):

  30 5 2 * *  /usr/local/bin/rowen run /srv/fleet --log-format json 2>>/var/log/rowen.json

systemd (Linux), /etc/systemd/system/rowen.service:

  [Unit]
  Description=Monthly fleet job
  [Service]
  Type=oneshot
  User=rowen
  ExecStart=/usr/local/bin/rowen run /srv/fleet --log-format json
  SuccessExitStatus=0

and /etc/systemd/system/rowen.timer, started with systemctl enable --now rowen.timer:

  [Timer]
  OnCalendar=*-*-02 05:30
  Persistent=true
  [Install]
  WantedBy=timers.target

Windows Task Scheduler (one line, as an administrator):

  schtasks /Create /TN "Fleet job" /SC MONTHLY /D 2 /ST 05:30 /TR "C:\rowen\rowen.exe run C:\fleet --log-format json"`,
	}
}

// stages are the commands in the order in which a business meets them.
var stages = []struct {
	title    string
	commands []string
}{
	{"Start", []string{"demo", "init", "check", "tariff"}},
	{"Every month", []string{"run", "outcomes", "compare"}},
	{"Look closer", []string{"explain", "history", "export", "schema"}},
	{"Many machines", []string{"part"}},
}

// setHelp gives every command help in one layout: what it does, how it is
// called, an example, its options.
func setHelp(root *cobra.Command) {
	root.SetHelpFunc(func(c *cobra.Command, _ []string) {
		w := c.OutOrStdout()
		if c == root {
			rootHelp(w, root)
			return
		}
		commandHelp(w, c)
	})
	root.SetUsageFunc(func(c *cobra.Command) error {
		fmt.Fprintf(c.OutOrStderr(), "%s\n", c.UseLine())
		return nil
	})
}

func rootHelp(w io.Writer, root *cobra.Command) {
	fmt.Fprintf(w, "rowen %s %s\n", root.Version, root.Short)
	listed := map[string]bool{"help": true}
	for _, s := range stages {
		fmt.Fprintf(w, "\n%s\n", s.title)
		for _, name := range s.commands {
			if c, _, err := root.Find([]string{name}); err == nil && c != root {
				listed[name] = true
				fmt.Fprintf(w, "  %-28s %s\n", "rowen "+c.Use, c.Short)
			}
		}
	}
	other := false
	for _, c := range root.Commands() {
		if listed[c.Name()] || c.Hidden {
			continue
		}
		if !other {
			fmt.Fprintln(w, "\nMore")
			other = true
		}
		fmt.Fprintf(w, "  %-28s %s\n", "rowen "+strings.Replace(c.Use, "scheduling", "help scheduling", 1), c.Short)
	}
	fmt.Fprintln(w, "\nrowen COMMAND --help shows a command's options and an example.")
}

func commandHelp(w io.Writer, c *cobra.Command) {
	fmt.Fprintf(w, "%s: %s\n", c.CommandPath(), c.Short)
	if c.Long != "" {
		fmt.Fprintf(w, "\n%s\n", c.Long)
	}
	if !c.Runnable() {
		return
	}
	fmt.Fprintf(w, "\nUse\n  %s\n", c.UseLine())
	if c.Example != "" {
		fmt.Fprintf(w, "\nFor example\n%s\n", c.Example)
	}
	if options := c.Flags().FlagUsages(); options != "" {
		fmt.Fprintf(w, "\nOptions\n%s", options)
	}
}
