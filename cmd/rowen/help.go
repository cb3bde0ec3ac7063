package main

import "github.com/spf13/cobra"

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
